"""Constants of nature and convention that several laws share."""

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall, exact by definition (CGPM 1901). [m/s2]"""
