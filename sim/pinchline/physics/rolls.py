"""Names of the rolls and of the columns of their tables, for kernels and callers."""

UPPER, LOWER, REAR = range(3)  # rows of every table of rolls

# where a roll stands and goes: axis (mm); ``r + t/2`` (mm); travel still to be made
# (mm); depth from which a point counts as contact (mm)
AXIS_X, AXIS_Y, REACH, TRAVEL_X, TRAVEL_Y, CONTACT_FLOOR = range(6)
ROLL_COLUMNS = 6

# what a roll does to the sheet, see ``contact.roll_forces``: force (N/mm); first moment
# of the pressure (N) and its total (N/mm); largest depth (mm); s of the contact (mm)
(
    FORCE_X,
    FORCE_Y,
    PRESSURE_MOMENT_X,
    PRESSURE_MOMENT_Y,
    PRESSURE,
    LARGEST_DEPTH,
    CONTACT_START,
    CONTACT_END,
) = range(8)
ROLL_RESULTS = 8
