"""``POST /v1/steady``: the request, the answer, its table."""
