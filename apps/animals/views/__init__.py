"""Pages of animals."""
