"""A path or bytes become upright sRGB frames with exact times."""
