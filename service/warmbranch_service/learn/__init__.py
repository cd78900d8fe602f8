"""``POST /v1/learn``: the request, the answer, its sentences and its table."""
