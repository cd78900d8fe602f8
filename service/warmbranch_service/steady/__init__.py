"""``POST /v1/steady``: the request, the answer with its sentence, its table."""
