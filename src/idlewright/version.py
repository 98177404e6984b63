"""The version, in one place; the change record and the wheel are checked against it."""

__version__ = "0.1.0"
