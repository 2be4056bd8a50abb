"""What comes by field capture, file or API becomes calls of the services that pages call."""
