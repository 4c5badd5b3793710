"""One check per limit: which block breaks it, which strut, by how much."""
