"""Pages of shipping."""
