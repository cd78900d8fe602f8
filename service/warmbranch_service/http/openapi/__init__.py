"""The OpenAPI document: completed, with examples and the ranges of answers."""
