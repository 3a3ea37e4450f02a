"""Corrections that span floors: each shows what it will change, does it in one act, and can be undone."""
