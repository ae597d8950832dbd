"""Practice: a vehicle with a hidden fault that answers measurements; a referee, the best path, scores."""

from halfsplit.practice.exercise import DIFFICULTIES, Exercise, Path, Step
from halfsplit.practice.hidden import ComesAndGoes, vehicle
from halfsplit.practice.scores import Score, keep_score, scores
from halfsplit.practice.vehicle import Vehicle

__all__ = [
    "DIFFICULTIES",
    "ComesAndGoes",
    "Exercise",
    "Path",
    "Score",
    "Step",
    "Vehicle",
    "keep_score",
    "scores",
    "vehicle",
]
