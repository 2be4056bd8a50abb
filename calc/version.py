"""The engine version: bumped by every change that moves a number, a verdict or a warning."""

__version__ = "2.1"
