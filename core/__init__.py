"""What afocal computes and remembers. Nothing in here knows a screen or imports a screen library."""
