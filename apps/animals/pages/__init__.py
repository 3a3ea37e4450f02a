"""View-models of the animals floor."""
