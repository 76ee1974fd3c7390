"""Opens the report's workbook with another reader: typed cells, a head that stays, no formula."""

import datetime
import json
import sys

import openpyxl

report = sys.argv[1]
book = openpyxl.load_workbook(f"{report}/fleet.xlsx")
SHEETS = ["Vans", "Jobs", "Orders", "Districts", "By month", "About"]
with open(f"{report}/assessment.json", encoding="utf-8") as file:
    assessment = json.load(file)
assert book.sheetnames == SHEETS, book.sheetnames
vans = {van["van"]: van for van in assessment["vans"]}
sheet = book["Vans"]
heads = [cell.value for cell in sheet[1]]
assert sheet.freeze_panes == "B2" and sheet.auto_filter.ref
assert sheet.conditional_formatting, "states are marked"
seen = 0
for row in sheet.iter_rows(min_row=2):
    cells = dict(zip(heads, row))
    van = vans[cells["Van"].value]
    fitted = cells["Membrane fitted"].value
    expected = van["membrane"]["fitted_on"]
    assert (fitted and fitted.date().isoformat()) == expected, (fitted, expected)
    assert fitted is None or isinstance(fitted, datetime.datetime)
    passage = van["membrane"]["salt_passage"]["p50"]
    rejection = cells["Rejection"].value
    assert (rejection is None) == (passage is None), (rejection, passage)
    assert passage is None or abs(rejection - (1 - passage)) < 1e-9, (rejection, passage)
    assert cells["Litres through membrane"].value == van["membrane"]["litres_made"]
    seen += 1
assert seen == len(vans), (seen, len(vans))
for sheet in book:
    for row in sheet.iter_rows():
        assert all(cell.data_type != "f" for cell in row), "a formula"
    assert all(sheet.column_dimensions[c].width for c in sheet.column_dimensions)
print(f"workbook: {seen} vans, every cell of its type, no formula")
