"""The case in a request, and its way into the physics."""
