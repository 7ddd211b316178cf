"""The invented road network as a plan: every name and every line here is made up."""

from __future__ import annotations

from dataclasses import dataclass

ROUNDABOUT_XY = (1060.0, 220.0)
ROUNDABOUT_RADIUS_M = 22.0
DUAL_APART_M = 20.0

# Kinds that are no road to a car; study.toml leaves them out.
NO_ROAD = ("footway", "track")


@dataclass(frozen=True)
class Plan:
    """One line of the plan.

    Attributes
    ----------
    key : str
        Our handle; never shown.
    name, ref : str
        As signed; may be empty.
    kind : str
        Value of OSM's highway key, or creek, or pond.
    points : str
        "x,y x,y ..." in metres east and north of the origin; "x,y@key" joins that other road
        at its nearest vertex. A smooth curve is laid through them.
    speed, lanes : int
        0 where not tagged.
    aadt : float
        Vehicles a day, both directions: what kills animals, and what background reports follow.
    spans : tuple of (kind, key, half length)
        A bridge over, or a tunnel under, the other line [m].
    dual : bool
        Two one-way bands, key + "-out" (along the points) and key + "-in".
    """

    key: str
    name: str
    kind: str
    points: str
    ref: str = ""
    speed: int = 0
    lanes: int = 0
    aadt: float = 0
    spans: tuple[tuple[str, str, float], ...] = ()
    dual: bool = False


PLANS = (
    Plan(
        "creek",
        "",
        "creek",
        "-590,2180 -760,1780 -780,1520 -990,1060 -980,590 -940,0 -1090,-460 -1170,-990 "
        "-1120,-1620 -1220,-2110",
    ),
    Plan("pond", "", "pond", "-2030,-110 -1950,-100 -1910,-150 -1930,-220 -2010,-230 -2060,-170"),
    Plan(
        "main-west",
        "Vellmark Road",
        "primary",
        "-3150,-430 -2870,-370 -2410,-170 -1980,-30 -1620,40 -1290,20 -940,-30 -560,-110 "
        "-130,-140 230,-30 590,120 1060,220@roundabout",
        ref="Q 7",
        speed=90,
        lanes=2,
        aadt=200,
        spans=(("bridge", "creek", 110),),
    ),
    Plan(
        "main-east",
        "Vellmark Road",
        "primary",
        "1060,220@roundabout 1350,-40 1720,-340 2210,-590 2770,-690 3300,-890",
        ref="Q 7",
        speed=90,
        lanes=2,
        aadt=220,
    ),
    Plan(
        "torvane",
        "Torvane Way",
        "trunk",
        "1060,220@roundabout 1450,460 1980,650 2570,740 2970,880",
        ref="Q 9",
        speed=100,
        lanes=2,
        aadt=2400,
        dual=True,
    ),
    Plan(
        "torvane-east",
        "Torvane Way",
        "trunk",
        "2970,880@torvane-out 3140,960 3330,1010",
        ref="Q 9",
        speed=90,
        lanes=2,
        aadt=2400,
    ),
    Plan("crossover", "", "trunk_link", "2460,720@torvane-in 2460,720@torvane-out", aadt=200),
    Plan(
        "osterlow",
        "Osterlow Lane",
        "tertiary",
        "-2870,-370@main-west -2800,130 -2900,590 -2710,1060 -2410,1420 -1980,1650 "
        "-1550,1620 -1120,1500 -780,1520 -330,1480",
        ref="L 21",
        speed=70,
        aadt=120,
        spans=(("bridge", "creek", 14),),
    ),
    Plan(
        "pellow",
        "Pellowmere Lane",
        "tertiary",
        "-330,1480@osterlow 200,1650 660,1550 1120,1420 1520,1580 2050,1720 2570,1680 2850,1740",
        ref="L 21",
        speed=70,
        aadt=100,
    ),
    Plan(
        "mirefield",
        "Mirefield Lane",
        "tertiary",
        "-2770,-1650 -2140,-1720 -1650,-1580 -1120,-1620 -300,-1650 260,-1780 660,-1580 "
        "1190,-1650 1650,-1450 2180,-1620 2900,-1520",
        ref="L 34",
        speed=70,
        aadt=140,
        spans=(("bridge", "creek", 14),),
    ),
    Plan(
        "sallowgate",
        "Sallowgate",
        "unclassified",
        "-1620,40@main-west -1720,460 -1550,790 -1620,1190 -1550,1620@osterlow",
        speed=50,
        aadt=90,
    ),
    Plan(
        "ring",
        "Birkmere Ring",
        "residential",
        "-1550,790@sallowgate -1350,880 -1200,760 -1290,590 -1450,630 -1550,790@sallowgate",
        speed=30,
        aadt=40,
    ),
    Plan(
        "tarnholt-north",
        "Tarnholt Lane",
        "unclassified",
        "-330,1480@osterlow -450,1090 -260,690 -400,260 -560,-110@main-west",
        speed=60,
        aadt=125,
    ),
    Plan(
        "tarnholt-south",
        "Tarnholt Lane",
        "unclassified",
        "-560,-110@main-west -590,-460 -400,-820 -500,-1250 -300,-1650@mirefield",
        speed=60,
        aadt=140,
    ),
    Plan(
        "quillbeck-north",
        "Quillbeck Lane",
        "unclassified",
        "1060,220@roundabout 980,530 990,890 820,1220 660,1550@pellow",
        speed=60,
        aadt=160,
    ),
    Plan(
        "quillbeck-south",
        "Quillbeck Lane",
        "unclassified",
        "590,120@main-west 560,-330 330,-820 430,-1220 660,-1580@mirefield",
        speed=60,
        aadt=140,
    ),
    Plan(
        "wrenfold",
        "Wrenfold Lane",
        "unclassified",
        "-260,690@tarnholt-north 100,660 400,820 690,760 990,890@quillbeck-north 1250,990 "
        "1480,1090",
        aadt=60,
    ),
    Plan(
        "hollow",
        "Hollow Lane",
        "unclassified",
        "1520,1580@pellow 1480,1090@wrenfold 1650,820 1740,570 1820,330 1720,70 1550,-30 "
        "1350,-40@main-east",
        aadt=80,
        spans=(("tunnel", "torvane", 45),),
    ),
    Plan(
        "brackwell-north",
        "Brackwell Lane",
        "unclassified",
        "1720,70@hollow 2110,160 2510,100 2740,-200 2770,-690@main-east",
        aadt=50,
    ),
    Plan(
        "brackwell-south",
        "Brackwell Lane",
        "unclassified",
        "2210,-590@main-east 2080,-990 1650,-1450@mirefield",
        aadt=60,
    ),
    Plan(
        "coldreed",
        "Coldreed Lane",
        "unclassified",
        "2050,1720@pellow 2260,1320 2240,1020 2460,720@torvane-in",
        aadt=70,
    ),
    Plan(
        "fennick",
        "Fennick Lane",
        "unclassified",
        "-2410,-170@main-west -2540,-590 -2310,-990 -2410,-1390 -2140,-1720@mirefield",
        aadt=60,
    ),
    Plan(
        "ottersike",
        "Ottersike Lane",
        "unclassified",
        "-2310,-990@fennick -1910,-890 -1620,-1020 -1350,-940",
        aadt=25,
    ),
    Plan(
        "drove",
        "Dunsallow Drove",
        "unclassified",
        "-400,-820@tarnholt-south 0,-940 330,-820@quillbeck-south 660,-940 960,-760 "
        "1290,-630 1720,-340@main-east",
        speed=50,
        aadt=95,
    ),
    Plan(
        "dunsallow",
        "Dunsallow Lane",
        "unclassified",
        "960,-760@drove 1090,-1160 1190,-1650@mirefield",
        aadt=45,
    ),
    Plan(
        "eelbank",
        "Eelbank Lane",
        "unclassified",
        "-1090,1520@osterlow -880,1060 -840,590 -880,70 -890,-100 -990,-460 -1030,-990 "
        "-860,-1640@mirefield",
        aadt=40,
        spans=(("bridge", "creek", 12),),
    ),
    Plan(
        "hobstone",
        "Hobstone Lane",
        "unclassified",
        "-840,590@eelbank -590,660 -320,570@tarnholt-north",
        aadt=30,
    ),
    Plan(
        "end-2",
        "Heron Close",
        "residential",
        "230,-30@main-west 280,130 220,300",
        speed=30,
        aadt=30,
    ),
    Plan("end-3", "Upper Wrenfold", "residential", "400,820@wrenfold 460,1040 370,1220", aadt=20),
    Plan("end-4", "Coldreed End", "residential", "2240,1020@coldreed 2010,980 1830,1030", aadt=20),
    Plan(
        "end-5",
        "Brackwell End",
        "residential",
        "2510,100@brackwell-north 2870,160 3070,320",
        aadt=20,
    ),
    Plan("end-6", "Mire End", "residential", "-300,-1650@mirefield -360,-1850 -280,-2030", aadt=15),
    Plan(
        "end-7", "Quillbeck Foot", "residential", "660,-1580@mirefield 740,-1850 610,-2060", aadt=20
    ),
    Plan(
        "end-8", "Osterlow Top", "residential", "-2410,1420@osterlow -2510,1650 -2380,1900", aadt=20
    ),
    Plan("end-9", "Pellow Rise", "residential", "1120,1420@pellow 1220,1720 1160,1950", aadt=15),
    Plan("end-10", "Alder Hook", "residential", "2770,-690@main-east 2940,-460 3170,-410", aadt=20),
    Plan(
        "street-1",
        "Sallow Green",
        "residential",
        "-1620,40@main-west -1480,-130 -1540,-300 -1750,-280 -1780,10@main-west",
        speed=30,
        aadt=50,
    ),
    Plan(
        "street-2",
        "Tanner Row",
        "residential",
        "-1540,-300@street-1 -1390,-410 -1450,-560",
        speed=30,
        aadt=20,
    ),
    Plan(
        "street-3",
        "Quill Street",
        "residential",
        "420,50@main-west 370,280 530,460 960,530@quillbeck-north",
        speed=30,
        aadt=60,
    ),
    Plan(
        "street-4",
        "Little Quill",
        "residential",
        "530,460@street-3 590,300 670,150@main-west",
        speed=30,
        aadt=35,
    ),
    Plan(
        "street-5",
        "Thatcher Row",
        "residential",
        "980,760@quillbeck-north 790,630 710,490@street-3",
        speed=30,
        aadt=25,
    ),
    Plan("service-1", "", "service", "-1290,20@main-west -1310,-150 -1210,-280", aadt=15),
    Plan("service-2", "", "service", "1720,-340@main-east 1830,-220 1990,-260", aadt=20),
    Plan("track-1", "", "track", "-2710,1060@osterlow -2380,990 -2110,1120"),
    Plan("track-2", "", "track", "-450,1090@tarnholt-north -130,1120 130,1290"),
    Plan("track-3", "", "track", "2080,-990@brackwell-south 2440,-1090 2670,-990"),
    Plan("path-1", "", "footway", "-2180,-100@main-west -2140,-300 -1910,-330 -1820,-160"),
)
