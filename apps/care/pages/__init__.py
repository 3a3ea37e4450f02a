"""View-models and pictures of daily care."""
