"""The addresses of the service: each converts, asks the model, and converts back."""
