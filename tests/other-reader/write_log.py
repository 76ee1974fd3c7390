"""Writes an owner's weekly log as openpyxl writes workbooks: typed days, a title
merged over all columns, a hidden row, a formula that nobody has worked out."""

import datetime
import sys

import openpyxl

book = openpyxl.Workbook()
sheet = book.active
sheet.title = "Log"
sheet["A1"] = "Water log 2026"
sheet.merge_cells("A1:G1")
sheet.append([])
sheet.append(["Week commencing", "Van", "Tap", "Membrane", "Resin", "Litres", "Notes"])
first = datetime.date(2026, 10, 5)
for week, (litres, note) in enumerate([(310, None), (300, "new resin"), ("=F4+10", None)]):
    day = first + datetime.timedelta(days=7 * week)
    sheet.append([day, "Quill", 320 + week, 12.125, 1, litres, note])
sheet.row_dimensions[5].hidden = True
hidden = book.create_sheet("Old")
hidden.append(["Van", "Base"])
hidden.append(["Barque", "QA1"])
hidden.sheet_state = "hidden"
book.save(sys.argv[1])
