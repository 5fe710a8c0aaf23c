"""read_tables.py RUN: reads track.csv, events.csv and the tables of plots/ as a user of pandas
would, and prints what the test compares: rows of the track, its columns that are numbers, the sum
of x_px, and how many other tables were read."""
import pathlib
import sys

import pandas

run = pathlib.Path(sys.argv[1])
track = pandas.read_csv(run / "track.csv", parse_dates=["utc"])
numbers = [name for name in track.columns if pandas.api.types.is_float_dtype(track[name])
           or pandas.api.types.is_integer_dtype(track[name])]
events = pandas.read_csv(run / "events.csv", parse_dates=["utc"])
assert list(events.columns) == ["utc", "t_s", "event", "detail"], events.columns
plots = sorted((run / "plots").glob("*.csv"))
for name in plots:
    assert len(pandas.read_csv(name)) > 0, name
print(len(track), ",".join(numbers), repr(float(track.x_px.sum())), len(plots))
