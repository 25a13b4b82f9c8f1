"""What afocal computes and remembers. Nothing in here knows a screen or imports a screen library."""

__version__ = "0.1.0"
