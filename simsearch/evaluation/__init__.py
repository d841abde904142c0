"""Measuring encoders: figures, baselines, and sets of real photographs to measure on.

For development only: nothing that runs for a user imports this package. It needs the packages
of the ``dev`` extra (scikit-image, OpenCV).
"""
