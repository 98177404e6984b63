"""The physics: circuits, meters, motors and idling engines; no files, no screens."""
