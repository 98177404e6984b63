"""A job: its file, its readings as evidence, its verdicts, and the whole answer."""

from idlewright.job.records import CarState, Reading

__all__ = ["CarState", "Reading"]
