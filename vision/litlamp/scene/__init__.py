"""An aspect becomes a picture of it: samples, tests, training, teaching."""
