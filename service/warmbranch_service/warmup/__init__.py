"""``POST /v1/warmup``: the request, the answer, its table."""
