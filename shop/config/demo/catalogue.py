"""Parts, bins and suppliers of the invented shop. Numbers, makers, prices and limits are invented."""

from __future__ import annotations

from typing import NamedTuple


class P(NamedTuple):
    number: str
    name: str
    kind: str
    price: str  # sale price per unit before tax, EUR
    cost: str  # per unit
    stock: str  # usual quantity on the shelf
    bin: str
    unit: str = "C62"
    single_use: bool = False
    shelf_life: int | None = None  # days
    open_life: int | None = None
    hazards: tuple[str, ...] = ()
    supplier: str = "Gullhaven Seals"
    keep: str = ""


BINS = (
    ("A1", "Gaskets, small"), ("A2", "Gaskets, head"), ("A3", "Seals and O-rings"), ("A4", "Rings"),
    ("B1", "Pistons and liners"), ("B2", "Bearings"), ("B3", "Valves and guides"), ("B4", "Pump parts"),
    ("C1", "Fasteners"), ("C2", "Fasteners, head"), ("C3", "Circlips and pins"),
    ("D1", "Sealants, cool cupboard"), ("D2", "Oils and greases"), ("D3", "Cleaning"), ("E1", "Electrics"),
)  # fmt: skip

# what is charged beside a part: number, kind, wording, amount for one unit before tax
CHARGES = (
    ("INJ-521", "core", "Deposit on the old nozzle", "12.00"),
    ("OIL-811", "environmental", "Disposal of the used oil", "0.35"),
)

SUPPLIERS = (
    ("Gullhaven Seals", "Gullhaven", "orders@gullhaven-seals.example", 4),
    ("Brindlecote Spares Depot", "Port Averil", "spares@brindlecote.example", 9),
    ("Ostwick Factors", "Ostwick Bridge", "sales@ostwick-factors.example", 6),
    ("Tern & Daughters Fasteners", "Gullhaven", "desk@tern-daughters.example", 3),
    ("Marram Lubricants", "Dunmarsh", "orders@marram-lubricants.example", 2),
    ("Samphire Bore & Balance", "Port Averil", "works@samphire-bore.example", 7),
)
GRINDER = "Samphire Bore & Balance"  # rebores what is sent out

_G = "gasket"
_B2 = "Brindlecote Spares Depot"
_O5 = "Ostwick Factors"
_T = "Tern & Daughters Fasteners"
_M = "Marram Lubricants"

PARTS = (
    P("GKT-041", "Cylinder head gasket, B2", _G, "38.50", "21.40", "3", "A2", single_use=True, supplier=_B2),
    P("GKT-042", "Rocker cover gasket, B2", _G, "11.20", "5.60", "6", "A1", single_use=True),
    P("GKT-043", "Exhaust manifold gasket, B2", _G, "9.80", "4.70", "8", "A1", single_use=True),
    P("GKT-044", "Inlet manifold gasket, B2", _G, "8.90", "4.10", "8", "A1", single_use=True),
    P("GKT-045", "Sump gasket, B2", _G, "17.60", "8.90", "4", "A1", single_use=True),
    P("GKT-046", "Timing cover gasket, B2", _G, "12.40", "6.10", "5", "A1", single_use=True),
    P("GKT-047", "Base gasket 0.3 mm, B2", _G, "7.50", "3.20", "10", "A1", single_use=True),
    P("GKT-050", "Gasket set, top end, B2", _G, "74.00", "43.00", "2", "A2", single_use=True, supplier=_B2),
    P("GKT-111", "Head gasket, Ostwick 5", _G, "16.90", "8.20", "6", "A2", single_use=True, supplier=_O5),
    P("GKT-112", "Crankcase gasket, Ostwick 5", _G, "9.40", "4.30", "6", "A1", single_use=True, supplier=_O5),
    P("GKT-113", "Base gasket, Ostwick 5", _G, "4.80", "1.90", "12", "A1", single_use=True, supplier=_O5),
    P("SEA-201", "Crankshaft oil seal 42x62x8, B2", _G, "14.20", "6.80", "5", "A3", single_use=True),
    P("SEA-202", "Crankshaft oil seal 30x47x7, Ostwick 5", _G, "8.60", "3.70", "6", "A3", single_use=True),
    P("SEA-203", "Valve stem seal", _G, "3.40", "1.20", "24", "A3", single_use=True),
    P("SEA-204", "O-ring 12x2, injector sleeve", _G, "0.90", "0.22", "60", "A3", single_use=True),
    P("SEA-205", "O-ring 86x3, liner", _G, "4.60", "1.70", "16", "A3", single_use=True),
    P("SEA-206", "Copper sealing washer 14x20", _G, "0.70", "0.16", "120", "A3", single_use=True),
    P("SEA-207", "Injector copper washer 7.5x15", _G, "1.10", "0.31", "40", "A3", single_use=True),
    P("SEA-210", "Pump shaft seal, raw water", _G, "18.70", "9.60", "5", "A3", single_use=True),
    P("RNG-301", "Piston ring set, B2 standard", "component", "64.00", "36.50", "4", "A4", supplier=_B2),
    P("RNG-302", "Piston ring set, B2 +0.50", "component", "69.00", "39.80", "2", "A4", supplier=_B2),
    P("RNG-311", "Piston ring set, Ostwick 5", "component", "39.00", "21.00", "3", "A4", supplier=_O5),
    P("PIS-321", "Piston with pin, B2 standard", "component", "182.00", "118.00", "2", "B1", supplier=_B2),
    P("PIS-322", "Piston with pin, B2 +0.50", "component", "189.00", "124.00", "2", "B1", supplier=_B2),
    P("PIS-331", "Piston with pin, Ostwick 5", "component", "96.00", "58.00", "1", "B1", supplier=_O5),
    P("LIN-341", "Cylinder liner, B2", "component", "156.00", "98.00", "2", "B1", supplier=_B2),
    P("BRG-401", "Big end bearing pair, B2 standard", "component", "46.00", "26.00", "4", "B2", supplier=_B2),
    P("BRG-402", "Big end bearing pair, B2 -0.25", "component", "49.00", "28.50", "2", "B2", supplier=_B2),
    P("BRG-403", "Main bearing pair, B2 standard", "component", "58.00", "33.00", "3", "B2", supplier=_B2),
    P("BRG-404", "Thrust washer set, B2", "component", "22.00", "12.00", "3", "B2", supplier=_B2),
    P("BRG-411", "Main ball bearing, Ostwick 5", "component", "28.00", "14.50", "4", "B2", supplier=_O5),
    P("BRG-421", "Pump bearing 17x40x12", "component", "13.50", "6.20", "6", "B2"),
    P("VLV-501", "Inlet valve, B2", "component", "31.00", "17.50", "4", "B3", supplier=_B2),
    P("VLV-502", "Exhaust valve, B2", "component", "37.00", "21.80", "4", "B3", supplier=_B2),
    P("VLV-503", "Valve guide, B2", "component", "14.00", "7.30", "8", "B3", supplier=_B2),
    P("VLV-504", "Valve spring, B2", "component", "8.50", "4.10", "8", "B3", supplier=_B2),
    P("VLV-511", "Valve set, Ostwick 5", "component", "33.00", "18.00", "2", "B3", supplier=_O5),
    P("INJ-521", "Injector nozzle, B2", "component", "88.00", "57.00", "4", "B3", supplier=_B2),
    P("INJ-522", "Injector nozzle, Ostwick 5", "component", "71.00", "44.00", "2", "B3", supplier=_O5),
    P("PMP-601", "Impeller, raw water pump, six-blade", "component", "24.50", "12.30", "6", "B4"),
    P("PMP-602", "Pump wear plate", "component", "21.00", "11.00", "3", "B4"),
    P("PMP-603", "Pump shaft, stainless", "component", "67.00", "41.00", "1", "B4"),
    P("FIL-611", "Fuel filter, B2", "component", "12.90", "6.40", "10", "B4", supplier=_B2),
    P("FIL-612", "Oil filter, B2", "component", "13.80", "7.10", "10", "B4", supplier=_B2),
    P("FAS-701", "Head stud M10x95, B2", "fastener", "6.20", "2.80", "16", "C2", supplier=_T),
    P("FAS-702", "Head nut M10, class 10, B2", "fastener", "1.90", "0.62", "32", "C2", single_use=True, supplier=_T),
    P("FAS-703", "Big end bolt M9, stretch, B2", "fastener", "7.80", "3.90", "12", "C2", single_use=True, supplier=_B2),
    P("FAS-704", "Screw M8x25 8.8", "fastener", "0.45", "0.11", "200", "C1", supplier=_T),
    P("FAS-705", "Screw M6x20 8.8", "fastener", "0.35", "0.07", "300", "C1", supplier=_T),
    P("FAS-706", "Spring washer M8", "fastener", "0.15", "0.03", "400", "C1", single_use=True, supplier=_T),
    P("FAS-707", "Split pin 2x20", "fastener", "0.20", "0.04", "150", "C3", single_use=True, supplier=_T),
    P("CIR-711", "Circlip, gudgeon pin 22, B2", "fastener", "1.60", "0.48", "20", "C3", single_use=True, supplier=_T),
    P("CIR-712", "Circlip, gudgeon pin 18, Ostwick 5", "fastener", "1.40", "0.41", "12", "C3", single_use=True, supplier=_T),
    P("KEY-721", "Woodruff key 5x6.5", "fastener", "1.80", "0.60", "10", "C3", supplier=_T),
    P("CON-801", "Jointing compound, non-setting, 70 ml tube", "measured", "0.24", "0.115", "420", "D1", unit="MLT",
      shelf_life=730, open_life=365, hazards=("H225", "H319", "H336", "P210", "P261", "P305+P351+P338"), keep="Closed, upright, away from flames", supplier=_M),
    P("CON-802", "Anaerobic flange sealant, 50 ml tube", "measured", "0.58", "0.31", "200", "D1", unit="MLT",
      shelf_life=720, open_life=180, hazards=("H315", "H319", "H335", "H411", "P273", "P280", "P302+P352"), keep="Cool cupboard D1, below 25 °C", supplier=_M),
    P("CON-803", "Thread locking liquid, medium, 50 ml", "measured", "0.66", "0.34", "100", "D1", unit="MLT",
      shelf_life=720, open_life=365, hazards=("H317", "H319"), supplier=_M),
    P("CON-804", "Assembly lubricant, 400 ml", "measured", "0.06", "0.028", "1600", "D2", unit="MLT",
      shelf_life=1460, open_life=1095, supplier=_M),
    P("OIL-811", "Engine oil, mineral, SAE 30", "measured", "7.90", "4.10", "60", "D2", unit="LTR",
      shelf_life=1825, supplier=_M),
    P("OIL-812", "Gear oil, SAE 90", "measured", "9.20", "5.00", "25", "D2", unit="LTR", shelf_life=1825, supplier=_M),
    P("CLN-821", "Degreaser, water-based", "measured", "5.60", "2.60", "40", "D3", unit="LTR",
      hazards=("H314", "H318", "P260", "P280", "P303+P361+P353", "P305+P351+P338"), keep="In the tray, never above eye height", supplier=_M),
    P("CLN-822", "Brake and parts cleaner, aerosol 500 ml", "sundry", "6.80", "2.90", "18", "D3",
      hazards=("H222", "H229", "H319", "H336", "P210", "P211", "P251", "P410+P412"), keep="Steel cabinet, below 50 °C", supplier=_M),
    P("SUN-831", "Abrasive paper, sheet, P400", "sundry", "1.10", "0.38", "60", "D3"),
    P("SUN-832", "Lint-free cloth, pack", "sundry", "7.40", "3.50", "12", "D3"),
    P("ELE-901", "Glow plug, B2", "component", "19.50", "10.80", "6", "E1", supplier=_B2),
    P("ELE-902", "Magneto points set, Ostwick 5", "component", "23.00", "12.60", "3", "E1", supplier=_O5),
)  # fmt: skip
