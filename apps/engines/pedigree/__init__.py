"""Who descends from whom: kinship, inbreeding, and what sightings say about genotypes. Pure computation."""
