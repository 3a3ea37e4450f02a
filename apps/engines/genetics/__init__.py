"""Traits, trade notation and crosses. Pure computation; see docs/methods/genetics.md."""
