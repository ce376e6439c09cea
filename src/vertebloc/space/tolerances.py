"""Tolerances used anywhere in the package, each with the reason for its size."""

#: Two directions are perpendicular, or a matrix is a rotation, within this cosine.
#: DICOM writes direction cosines with at most 16 characters, commonly 6 decimals.
COSINE = 1e-4

#: Two positions are the same, mm. Scanners write positions to 0.001 mm.
POSITION_MM = 0.01

#: Neighbouring slices are evenly spaced if no gap differs from the median by more, mm.
#: Table feeds are written to 0.1 mm by some scanners; a lost 0.5 mm slice is far above.
SLICE_GAP_MM = 0.05

#: A plane, polygon or volume below this size is empty, mm2 or mm3.
EMPTY = 1e-6
