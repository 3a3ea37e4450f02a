"""View-models and pictures of the pages that read across the house."""
