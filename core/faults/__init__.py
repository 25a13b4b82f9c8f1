"""From a shortfall to its likely cause: what each fault would do is predicted through the optics and compared."""

from .diagnose import diagnose, diagnose_with
from .model import model_of
from .of_case import diagnose_case, findings_of
from .predicting import predict
from .types import Cause, Diagnosis, Findings, Predicted

__all__ = [
    "Cause",
    "Diagnosis",
    "Findings",
    "Predicted",
    "diagnose",
    "diagnose_case",
    "diagnose_with",
    "findings_of",
    "model_of",
    "predict",
]
