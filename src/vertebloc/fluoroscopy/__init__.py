"""What will the C-arm show, and how is it set so that a cut is a line?"""

from vertebloc.fluoroscopy.film import FilmSettings, expose, show_as_film
from vertebloc.fluoroscopy.model import CArm, CArmPlan, CArmView, HeadAt
from vertebloc.fluoroscopy.projector import Between, Projector
from vertebloc.fluoroscopy.views import plan_views

__all__ = [
    "Between",
    "CArm",
    "CArmPlan",
    "CArmView",
    "FilmSettings",
    "HeadAt",
    "Projector",
    "expose",
    "plan_views",
    "show_as_film",
]
