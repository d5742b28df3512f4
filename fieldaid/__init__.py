"""fieldaid: an offline assistant for the crew that opens a house roof, and for the people who teach them.

A training and practice aid. The incident commander, the department and local procedure decide.
"""

__version__ = "0.1.0"
