"""The engine: readings of a proportioning test in, percent with uncertainty and verdict out.

Pure Python and numpy; `python -m calc evaluate FILE` is the same from a shell.
"""

from calc.errors import CalcError
from calc.evaluate import evaluate, evaluate_many
from calc.result import Evaluation
from calc.version import __version__

__all__ = ["CalcError", "Evaluation", "__version__", "evaluate", "evaluate_many"]
