"""Many sources to many readings, and how good those are: scoring, and the rendered exam."""
