"""Mean line pressure, and slope of cup mass over time, for each step of a record: by a general-purpose tool.

In: the tool's name and a samples.csv. Out: a line a step on stdout: step, readings, mean, slope. Never: a part of the
record left out.
"""

import sys

tool, path = sys.argv[1:]

if tool == "duckdb":
    import duckdb

    rows = duckdb.sql(
        f"""SELECT step, count(line_pressure_kpa), avg(line_pressure_kpa), regr_slope(cup_mass_g, time_s)
        FROM read_csv('{path}', header = true) GROUP BY step ORDER BY step"""
    ).fetchall()
elif tool == "polars":
    import polars as pl

    weighed = pl.col("cup_mass_g").is_not_null()
    t, m = pl.col("time_s").filter(weighed), pl.col("cup_mass_g").filter(weighed)
    rows = (
        pl.scan_csv(path)
        .group_by("step")
        .agg(
            pl.col("line_pressure_kpa").count(),
            pl.col("line_pressure_kpa").mean().alias("mean"),
            (((t - t.mean()) * (m - m.mean())).sum() / ((t - t.mean()) ** 2).sum()).alias("slope"),
        )
        .sort("step")
        .collect(engine="streaming")
        .rows()
    )
elif tool == "pandas":
    import pandas as pd

    frame = pd.read_csv(path, usecols=["time_s", "step", "line_pressure_kpa", "cup_mass_g"])
    pressure = frame.groupby("step")["line_pressure_kpa"].agg(["count", "mean"])
    cup = frame.dropna(subset=["cup_mass_g"])
    step = cup["step"]
    t = cup["time_s"] - cup["time_s"].groupby(step).transform("mean")
    m = cup["cup_mass_g"] - cup["cup_mass_g"].groupby(step).transform("mean")
    slope = (t * m).groupby(step).sum() / (t * t).groupby(step).sum()
    rows = [(s, pressure["count"][s], pressure["mean"][s], slope.get(s)) for s in pressure.index]
else:
    sys.exit(f"no tool {tool}")

for step, count, mean, slope in rows:
    print(step, count, repr(float(mean)), repr(float(slope)))
