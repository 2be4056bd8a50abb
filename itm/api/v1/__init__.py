"""Version 1: one module a subject, each with its shapes and its addresses."""
