"""The question ``/v1/listen``: recordings in, what drones and where the branch bites out."""
