"""Slow, exact answers that the diagnosis is held against; nothing here is part of the product.

Two oracles share only the model's physics (values and derivatives) with the product, none of its
cells, Gaussians, boxes, index maps or pruning:

- `brute`: worlds drawn from the prior, weighed by their likelihood;
- `gauss_newton`: worlds drawn near the readings, weighed by prior x likelihood / density.
"""
