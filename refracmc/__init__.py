"""refracmc: Monte Carlo refrac economics for wells with coiled-tubing-shifted sleeves."""

__version__ = "0.1.0"
