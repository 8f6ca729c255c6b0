"""Every screen there is, as addresses of the demo's yard; and what each is looked at with."""

from datetime import UTC, datetime, timedelta

MONTH_AGO = datetime.now(UTC) - timedelta(days=30)
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1440, "height": 900}
NARROW = {"width": 320, "height": 700}
TABLET = {"width": 1280, "height": 800}
WALL = "/?wall=1"

SCREENS = [
    "/",
    WALL,
    "/stack/raised-plane",
    "/stack/raised-plane/options",
    "/board/RP-1",
    "/board/RP-1?band=core",
    "/board/LM-1/options",
    "/set/back-15",
    "/board/RP-1/then",
    f"/set/back-15/then?at={MONTH_AGO:%Y-%m-%dT%H:%M}&hindsight=yes",
    "/weigh",
    "/weigh?stack=raised-plane",
    "/weigh/sheet?stack=raised-plane",
    "/air",
    "/place/bench-room",
    "/place/log-shed?days=365",
    "/place/log-shed?days=3652",
    "/probes",
    "/records",
    "/records?about=RP-1",
    "/settings",
    "/finish",
    "/finish/room/finish-room",
    "/finish/product/plane-lacquer",
    "/finish/product/two-part",
    "/work-out/vapour?finish=plane-lacquer&place=finish-room&litres=1&minutes=20&extraction_on=yes",
    "/work-out/substance?name=xylene&ppm=50",
    "/dust",
    "/hurt",
    "/work-out/dust?species=Dalbergia+retusa",
    "/add",
    "/how",
    "/more",
    "/learned",
    "/work-out",
    "/work-out/emc?place=loft",
    "/work-out/movement?board=ST-L&pith_mm=200&to_rh_pct=30",
    "/work-out/density?board=RP-1",
    "/work-out/bag-test?board=ST-L",
    "/work-out/pins?reading_pct=14&wood_c=8&meter=pm-maple",
    "/work-out/hygrometer?temperature_c=20",
    "/work-out/oven-dry?wet_g=80&dry_g=60",
    "/work-out/timber?name=sycamore",
    "/work-out/out-of-water?days_out=4&temperature_c=12",
    "/work-out/saw-plan?species=Quercus+rubra&finished_mm=19",
    "/work-out/lifting?stack=raised-plane",
    "/work-out/dew-gap?temperature_c=20&rh_pct=58&surface_c=15&sheet_gap_c=3",
    "/work-out/warming?species=Fraxinus+americana&thickness_mm=27&piece_c=4&room_c=20&rh_pct=50",
    "/meters",
    "/limits",
]
