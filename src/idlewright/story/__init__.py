"""A whole job worked by the tool itself on a practice car, from complaint to record."""

from idlewright.story.demo import run_demo

__all__ = ["run_demo"]
