"""How does the team see and shape the plan: the surgeon's questions as pages on this machine?"""

from vertebloc.app.server import serve_case

__all__ = ["serve_case"]
