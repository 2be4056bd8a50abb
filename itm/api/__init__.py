"""The programming interface: shape, tokens and wording of problems; no rule of its own."""
