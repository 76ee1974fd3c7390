"""The kinds of file that the peers take in, and how each script is called."""

import pathlib
import sys

ZONE = "Europe/London"
# name -> column of the time, largest value that can be of each number, other columns
KINDS = {
    "readings": (
        "taken_at",
        {"feed_ppm": 20_000, "permeate_ppm": 20_000, "product_ppm": 20_000, "water_c": 60,
         "feed_bar": 30, "permeate_lpm": 200, "concentrate_lpm": 400},
        ["postcode"],
    ),
    "fills": (
        "started_at",
        {"litres": 20_000, "meter_litres": 1e9, "reject_litres": 100_000},
        ["ended_at", "postcode", "source"],
    ),
    "services": ("done_at", {"quantity": 10_000, "cost": 100_000}, ["item", "part", "note"]),
}


def each(take_in) -> None:
    """Calls take_in(file, out, with_origin) as the command line says."""
    source, out = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])
    out.mkdir(parents=True, exist_ok=True)
    for kind in KINDS:
        take_in(source / f"{kind}.csv", out, "--without-origin" not in sys.argv)
