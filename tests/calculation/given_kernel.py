"""A covariance between keys that is worked out beforehand, as a kernel of scikit-learn."""

from __future__ import annotations

from typing import Any

import numpy as np
from sklearn.gaussian_process.kernels import Kernel


class Given(Kernel):
    """A covariance that is given as a matrix over the keys; X holds their places in it."""

    def __init__(self, matrix: np.ndarray) -> None:
        self.matrix = matrix

    def __call__(self, X: Any, Y: Any = None, eval_gradient: bool = False) -> Any:
        rows = X[:, 0].astype(int)
        return self.matrix[np.ix_(rows, rows if Y is None else Y[:, 0].astype(int))]

    def diag(self, X: Any) -> Any:
        return np.diagonal(self.matrix)[X[:, 0].astype(int)]

    def is_stationary(self) -> bool:
        return False
