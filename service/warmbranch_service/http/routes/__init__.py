"""The addresses: each takes a request apart, asks its room and words the answer."""
