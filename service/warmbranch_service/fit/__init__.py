"""``POST /v1/fit``: the request, the answer, its sentences (of slips: ``rivals``), its table."""
