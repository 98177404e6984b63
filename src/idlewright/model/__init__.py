"""The compiled model: a family and one vehicle as scalars, latents and cells of faults."""
