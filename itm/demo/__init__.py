"""The demo: an invented world, built through the same services and actions that people use."""
