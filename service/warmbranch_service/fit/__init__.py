"""``POST /v1/fit``: the request, the answer, its sentences and its table."""
