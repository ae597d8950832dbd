"""Practice: a vehicle with a hidden fault that answers measurements, paths judged beside the best one, results."""

from halfsplit.practice.chart import Course, Mark, difficulty_mark, paths_chart, results_chart
from halfsplit.practice.exercise import HINT_POINTS, WRONG_POINTS, Exercise, Quote, Taken, points
from halfsplit.practice.hiding import DIFFICULTIES, Hidden, hidden_again
from halfsplit.practice.paths import Path, Step, Worth
from halfsplit.practice.vehicle import ComesAndGoes, Vehicle, vehicle
