"""The face for programs and browsers: the application and its addresses."""
