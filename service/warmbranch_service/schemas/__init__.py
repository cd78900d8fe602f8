"""What goes in and out as JSON, with the unit in every field's schema."""
