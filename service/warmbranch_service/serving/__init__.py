"""Running the application: the supervisor, its workers, their connections."""
