"""Frames become what is seen, each part with its belief."""
