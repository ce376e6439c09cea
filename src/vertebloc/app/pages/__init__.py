"""The surgeon's questions, one file each: what it says and what can be done there."""
