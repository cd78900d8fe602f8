"""``POST /v1/length``: the request, the answer, its sentences and its table."""
