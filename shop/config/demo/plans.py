"""Work plans of the invented shop. Hours, gates and quantities are invented; the maker's manual rules on every value."""

from __future__ import annotations

from typing import NamedTuple

MANUAL = "The maker's manual rules on every value, sequence and lubricant."
LIFT = "Lift with rated slings at the marked eyes; nobody stands under a load."
FUEL = "Diesel and vapour: no flame or spark, drain into a closed can, keep the extinguisher at hand."
PRESSURE = "Injector spray goes through skin. Test behind the guard, hands away, eyes covered."
CHEM = "Read the safety data sheet; gloves and goggles; extraction on."


class S(NamedTuple):
    name: str
    kind: str
    hours: str
    after: tuple[int, ...] = ()  # positions in this plan, from 1
    gates: tuple[tuple[str, str], ...] = ()  # (when, text)
    parts: tuple[tuple[str, str], ...] = ()  # (part number, quantity)
    cautions: str = MANUAL


class Plan(NamedTuple):
    code: str
    name: str
    machine_kind: str
    maker: str
    model: str
    stages: tuple[S, ...]


PLANS = (
    Plan(
        "B2-TOP", "Top-end rebuild, B2", "engine", "Brindlecote", "B2",
        (
            S("Take off head and manifolds", "strip", "1.5",
              gates=(("finish", "Ports and oilways covered"),), cautions=f"{FUEL} {MANUAL}"),
            S("Clean head, manifolds and fasteners", "clean", "1.25", (1,),
              parts=(("CLN-821", "1.5"), ("SUN-832", "1")), cautions=f"{CHEM} {MANUAL}"),
            S("Measure head, valves, guides and bores", "measure", "1.5", (2,),
              gates=(("finish", "All readings written down with the instrument's number"),)),
            S("Lap valves, renew stem seals", "rework", "2.5", (3,),
              parts=(("SEA-203", "4"), ("VLV-501", "2"), ("VLV-502", "2"))),
            S("Fit head with new gasket and nuts", "assemble", "2", (4,),
              gates=(("start", "Joint faces clean, dry and flat"), ("start", "New head gasket at hand"),
                     ("finish", "Head nuts tightened in three passes, signed on the sheet")),
              parts=(("GKT-041", "1"), ("FAS-702", "8"), ("SEA-204", "4"), ("CON-804", "10"))),
            S("Fit manifolds and rocker cover", "assemble", "1.25", (5,),
              parts=(("GKT-042", "1"), ("GKT-043", "2"), ("GKT-044", "2"), ("FAS-706", "12"))),
            S("Set valve clearances, run up and check", "test", "1.5", (6,),
              gates=(("start", "Oil and coolant filled"), ("finish", "No leaks after 20 minutes under load")),
              parts=(("FIL-611", "1"), ("FIL-612", "1"), ("OIL-811", "4.5")),
              cautions=f"Hot parts and moving belts. {MANUAL}"),
        ),
    ),
    Plan(
        "B2-FULL", "Full rebuild, B2", "engine", "Brindlecote", "B2",
        (
            S("Receive, photograph, drain and mount on stand", "strip", "1.5", cautions=f"{LIFT} {FUEL}"),
            S("Strip to bare block", "strip", "5", (1,),
              gates=(("finish", "Bearing caps and rods marked to their places"),
                     ("finish", "Ports covered and threads protected"))),
            S("Clean block and parts", "clean", "4", (2,),
              parts=(("CLN-821", "6"), ("SUN-832", "2"), ("SUN-831", "4")), cautions=CHEM),
            S("Measure bores, crankshaft, bearings and head", "measure", "3.5", (3,),
              gates=(("finish", "All readings written down with the instrument's number"),)),
            S("Rebore and hone both cylinders (sent out)", "sublet", "0.5", (4,)),
            S("Valves and guides", "rework", "3.5", (4,),
              parts=(("VLV-503", "4"), ("SEA-203", "4"), ("VLV-501", "2"), ("VLV-502", "2"))),
            S("Crankshaft and main bearings", "assemble", "3", (4,),
              gates=(("start", "Oilways blown through and seen clear"),
                     ("finish", "Shaft turns freely after each cap")),
              parts=(("BRG-403", "3"), ("BRG-404", "1"), ("SEA-201", "2"), ("CON-804", "30"))),
            S("Pistons, rings and rods", "assemble", "3", (5, 7),
              gates=(("start", "Ring gaps measured in the bore"), ("start", "Bores oiled"),
                     ("finish", "Ring gaps staggered"), ("finish", "New circlips fitted and seated")),
              parts=(("PIS-322", "2"), ("RNG-302", "2"), ("CIR-711", "4"), ("BRG-401", "2"), ("FAS-703", "4"),
                     ("GKT-047", "2"), ("CON-804", "25"))),
            S("Timing gear, cover and sump", "assemble", "2.5", (8,),
              gates=(("finish", "Timing marks checked by a second person"),),
              parts=(("GKT-045", "1"), ("GKT-046", "1"), ("CON-801", "18"), ("FAS-706", "20"))),
            S("Fit head and manifolds", "assemble", "3", (6, 9),
              gates=(("start", "Joint faces clean, dry and flat"),
                     ("finish", "Head nuts tightened in three passes, signed on the sheet")),
              parts=(("GKT-041", "1"), ("FAS-702", "8"), ("GKT-042", "1"), ("GKT-043", "2"), ("GKT-044", "2"),
                     ("SEA-204", "4"), ("SEA-207", "2"))),
            S("Fuel system and auxiliaries", "fit", "2.5", (10,),
              parts=(("FIL-611", "1"), ("FIL-612", "1"), ("INJ-521", "2"), ("PMP-601", "1")), cautions=f"{FUEL} {PRESSURE}"),
            S("Run in on the stand, check and adjust", "test", "4", (11,),
              gates=(("start", "Oil and coolant filled"), ("start", "Stop device tried by hand"),
                     ("finish", "No leaks after the run; nuts checked cold")),
              parts=(("OIL-811", "5"),), cautions=f"Hot parts and moving belts; the engine can overspeed. {MANUAL}"),
        ),
    ),
    Plan(
        "O5-TOP", "Top-end rebuild, Ostwick 5", "engine", "Ostwick", "5",
        (
            S("Take off head and cylinder", "strip", "1", gates=(("finish", "Crankcase mouth covered"),)),
            S("Clean and decarbonise", "clean", "1", (1,), parts=(("CLN-821", "0.75"),), cautions=CHEM),
            S("Measure bore, piston and rings", "measure", "0.75", (2,),
              gates=(("finish", "All readings written down with the instrument's number"),)),
            S("Piston, rings and cylinder", "assemble", "1.75", (3,),
              gates=(("start", "Bore oiled"), ("finish", "Ring gaps staggered"),
                     ("finish", "New circlips fitted and seated")),
              parts=(("RNG-311", "1"), ("CIR-712", "2"), ("GKT-113", "1"), ("CON-804", "8"))),
            S("Head, valves and magneto points", "assemble", "1.5", (4,),
              parts=(("GKT-111", "1"), ("VLV-511", "1"), ("ELE-902", "1"))),
            S("Run up and check", "test", "0.75", (5,), gates=(("finish", "Holds governed speed under load"),),
              parts=(("OIL-811", "1.2"),)),
        ),
    ),
    Plan(
        "PUMP-OH", "Raw water pump overhaul", "pump", "", "",
        (
            S("Strip and clean", "strip", "0.75", parts=(("CLN-821", "0.25"),), cautions=CHEM),
            S("Measure shaft and wear plate", "measure", "0.5", (1,)),
            S("Renew bearings, seal and impeller", "assemble", "1.25", (2,),
              gates=(("start", "Shaft polished at the seal"), ("finish", "Weep hole clear")),
              parts=(("BRG-421", "2"), ("SEA-210", "1"), ("PMP-601", "1"), ("PMP-602", "1"), ("CON-801", "3"))),
            S("Pressure test", "test", "0.5", (3,), gates=(("finish", "Tight for ten minutes"),), cautions=PRESSURE),
        ),
    ),
    Plan(
        "INJ-SVC", "Injector service, two injectors", "engine", "", "",
        (
            S("Take out injectors, cover ports", "strip", "0.5", gates=(("finish", "Ports covered"),), cautions=FUEL),
            S("Test on the bench", "measure", "0.75", (1,), cautions=PRESSURE),
            S("Renew nozzles and set pressure", "rework", "1.25", (2,), parts=(("INJ-521", "2"),), cautions=PRESSURE),
            S("Fit with new washers, bleed and run", "fit", "0.75", (3,),
              gates=(("start", "Seats clean, old washers out"), ("finish", "No leak at pipes or washers")),
              parts=(("SEA-207", "2"), ("SEA-206", "4")), cautions=f"{FUEL} {PRESSURE}"),
        ),
    ),
)  # fmt: skip
