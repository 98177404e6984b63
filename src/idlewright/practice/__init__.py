"""Practice cars: simulated cars with a hidden fault, to learn on and to study the method with."""

from idlewright.practice.car import Luck, PracticeCar, RepairMade
from idlewright.practice.complaint import Complaint
from idlewright.practice.kinds import KINDS, Kind, kind_named
from idlewright.practice.laws import LAWS, Law, law_named
from idlewright.practice.opening import open_car
from idlewright.practice.slips import SlipMade

__all__ = [
    "KINDS",
    "LAWS",
    "Complaint",
    "Kind",
    "Law",
    "Luck",
    "PracticeCar",
    "RepairMade",
    "SlipMade",
    "kind_named",
    "law_named",
    "open_car",
]
