"""How does the team see and shape the plan: the surgeon's questions as pages on this machine?"""
