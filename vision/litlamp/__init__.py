"""litlamp: reads the aspect of a railway colour-light signal from a picture. A training aid only."""

__version__ = "0.1.0"
