"""The lists of the stores as tables and files, and how they are narrowed."""

from fleet.stores.tables.instruments import CSV_HEADER, InstrumentFilter, InstrumentTable, csv_rows, state_mark
from fleet.stores.tables.parts import PART_HEADER, ShelfFilter, ShelfTable, shelf_mark, shelf_rows

__all__ = [
    "CSV_HEADER",
    "PART_HEADER",
    "InstrumentFilter",
    "InstrumentTable",
    "ShelfFilter",
    "ShelfTable",
    "csv_rows",
    "shelf_mark",
    "shelf_rows",
    "state_mark",
]
