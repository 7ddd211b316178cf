"""Personal data in remarks: what has to be struck out, and what has to stay.

The forms: e-mail addresses as in RFC 5322 (addr-spec, 3.4.1, with its examples' forms) at domains
that RFC 2606 keeps for examples; phone numbers as ITU-T E.123 writes them ((0607) 123 4567 and
+22 607 123 4567 are its examples, from memory), numbers of up to 15 digits (ITU-T E.164), and
numbers that regulators keep for fiction (555-0100 to 555-0199 in North America, 01632 960xxx in
Britain; from memory); postal addresses in invented streets (common practice).
"""

from __future__ import annotations

import pandas as pd
import pytest

from roadrisk.sightings.personal import personal_kinds, strike_out

EMAIL, PHONE, ADDRESS = "an e-mail address", "a phone number", "a postal address"

PERSONAL = {
    "write to anna.reed@example.org please": ("write to [struck out] please", EMAIL),
    "(anna.reed+toads@mail.example.co.uk)": ("([struck out])", EMAIL),
    "mailto:o'reed_7@example.com.": ("mailto:[struck out].", EMAIL),
    "ANNA@EXAMPLE.ORG, thanks": ("[struck out], thanks", EMAIL),
    '"anna reed"@example.org': ("[struck out]", EMAIL),
    "anna@[192.0.2.1] answers": ("[struck out] answers", EMAIL),
    "żaneta@przykład.example": ("[struck out]", EMAIL),
    "anna (at) example.org": ("[struck out]", EMAIL),
    "anna at example dot org": ("[struck out]", EMAIL),
    "anna at example.org": ("[struck out]", EMAIL),
    "anna.reed (a) example.org": ("[struck out]", EMAIL),
    "ANNA DOT REED AT EXAMPLE DOT COM": ("[struck out]", EMAIL),
    "anna[at]example[dot]org!": ("[struck out]!", EMAIL),
    "call (0607) 123 4567 for more": ("call [struck out] for more", PHONE),
    "+22 607 123 4567": ("[struck out]", PHONE),
    "my number: +22 607 123 4567, evenings": ("my number: [struck out], evenings", PHONE),
    "0022 607 123 4567": ("[struck out]", PHONE),
    "00 22 607 123 4567": ("[struck out]", PHONE),
    "+123456789012345": ("[struck out]", PHONE),
    "555-0100": ("[struck out]", PHONE),
    "tel. 5550100": ("tel. [struck out]", PHONE),
    "seen by me, 202-555-0143": ("seen by me, [struck out]", PHONE),
    "(202) 555-0143": ("[struck out]", PHONE),
    "202.555.0143 any time": ("[struck out] any time", PHONE),
    "1-202-555-0143": ("[struck out]", PHONE),
    "+1 (202) 555-0143": ("[struck out]", PHONE),
    "01632 960123": ("[struck out]", PHONE),
    "01632960123 after 8.15": ("[struck out] after 8.15", PHONE),
    "0171/5550100": ("[struck out]", PHONE),
    "06-55501000": ("[struck out]", PHONE),
    "600 555 010": ("[struck out]", PHONE),
    "600555010": ("[struck out]", PHONE),
    "01 55 50 10 00": ("[struck out]", PHONE),
    "handy 0151 5550100": ("handy [struck out]", PHONE),
    "phone 555 01 00": ("phone [struck out]", PHONE),
    "+49\u00a0151\u00a05550100": ("[struck out]", PHONE),
    "0607\u200b123\u200b4567": ("[struck out]", PHONE),
    "at 12 Mill Lane, by the gate": ("at [struck out], by the gate", ADDRESS),
    "I live at 12a Old Mill Road": ("I live at [struck out]", ADDRESS),
    "Flat 2, 14 High Street": ("[struck out]", ADDRESS),
    "4 Reed Close, Anytown, ZZ1 2AB": ("[struck out]", ADDRESS),
    "17 Reed St., Springhollow, ZZ 01234": ("[struck out]", ADDRESS),
    "in front of 12 mill lane": ("in front of [struck out]", ADDRESS),
    "12 MILL LANE": ("[struck out]", ADDRESS),
    "4, The Street": ("[struck out]", ADDRESS),
    "12-14 High Street": ("[struck out]", ADDRESS),
    "at 12 mill road": ("at [struck out]", ADDRESS),
    "Am Markt 3, 01234 Musterdorf": ("[struck out]", ADDRESS),
    "Schilfstr.5": ("[struck out]", ADDRESS),
    "ul.Trzcinowa 5 m. 3": ("[struck out]", ADDRESS),
    "Trzcinowa 5, 00-123 Miasto": ("[struck out]", ADDRESS),
    "12 Market Street": ("[struck out]", ADDRESS),
    "3 Mayfield Road": ("[struck out]", ADDRESS),
    "ul. Jana Starego 15": ("[struck out]", ADDRESS),
    "ul. 3 Maja 5": ("[struck out]", ADDRESS),
    "postcode ZZ1 2AB": ("postcode [struck out]", ADDRESS),
    "PO Box 123": ("[struck out]", ADDRESS),
    "Schilfstraße 12": ("[struck out]", ADDRESS),
    "Schilfstr. 12a, 01234 Musterdorf": ("[struck out]", ADDRESS),
    "vor Alter Weg 5 gefunden": ("vor [struck out] gefunden", ADDRESS),
    "Lindenweg 5": ("[struck out]", ADDRESS),
    "Rietstraat 12, 1234 ZZ Voorbeeld": ("[struck out]", ADDRESS),
    "Rietlaan 3b": ("[struck out]", ADDRESS),
    "ul. Trzcinowa 12/4": ("[struck out]", ADDRESS),
    "przy ul. Trzcinowej 7, 00-123 Przykładowo": ("przy [struck out]", ADDRESS),
    "al. Starych Lip 3": ("[struck out]", ADDRESS),
}

PLAIN = [
    "", "2 cars had stopped", "seen at 8.15", "km 12.4", "20 cm long", "12-14 July", "3 of them",
    "on 12.05.2024 at 17:30", "12/05/2024", "2024-05-12", "2024-05-12T17:30", "8.15 and 9.45",
    "8:15-8:45", "52.20247, 19.41693", "52.2024719 19.4169321", "N 52.2024 E 19.4169",
    "20 m from Mill Lane", "on Mill Lane", "2 dead on Mill Lane", "5 m off the High Road",
    "2 lane road", "road A12, 300 m north", "route 12 at km 3.200", "about 100-200 m on",
    "tag 217, notch code 3-7-11", "T05 150.123 MHz", "carapace 145 mm, 412 g", "3-4 years old",
    "1 male, 2 females", "the 3rd this week", "at the gate", "look at the dot on its shell",
    "0815 and 0930", "speed limit 50 km/h", "AADT 1500-2000 cars", "ID 2024-003", "50% shade",
    "1200 vehicles a day", "Feldweg, 3 Tiere", "ul. Trzcinowa", "Rietstraat, 2 dood",
    "during 12 July", "spring 2024", "at 8 in the morning on Old Road", "IMG_20240512_0815.jpg",
    "A 2 LANE ROAD, NO VERGE", "0815 AND 0930, ON MILL LANE", "3 MALES ON MILL LANE",
    "tag 0012345", "bridge 12 High Road", "exit 12 Park Road", "in 2023 Mill Lane was resurfaced",
    "microchip 968000001234567", "UTM 34U 392145 5784521", "about 1 000 000 ants", "No 4 today",
    "10.5.2024 08:15 Uhr", "52°12'08.9\" 19°25'01\"", "5 m vor dem Weg 3 Tiere", "5 vor Acht",
    "observed 5 June Lane closed", "call 112", "15 May, Mill Road", "8 km 200",
]  # fmt: skip


@pytest.mark.parametrize("text", PERSONAL)
def test_personal_data_is_struck_out(text):
    struck, holds = strike_out(pd.Series([text]))
    assert struck.tolist() == [PERSONAL[text][0]]
    assert holds.tolist() == [True]
    assert personal_kinds(pd.Series([text])).tolist() == [PERSONAL[text][1]]


@pytest.mark.parametrize("text", PLAIN)
def test_what_is_not_personal_stays(text):
    struck, holds = strike_out(pd.Series([text], dtype=str))
    assert struck.tolist() == [text]
    assert not holds.any()
    assert personal_kinds(pd.Series([text], dtype=str)).tolist() == [""]


def test_several_in_one_remark_and_a_table_at_once():
    text = "Seen by 2 people; anna@example.org or 202-555-0143, 12 Mill Lane, on 12.05.2024"
    struck, holds = strike_out(pd.Series([text, "no more", text]))
    mended = "Seen by 2 people; [struck out] or [struck out], [struck out], on 12.05.2024"
    assert struck.tolist() == [mended, "no more", mended]
    assert holds.tolist() == [True, False, True]
    kinds = personal_kinds(pd.Series([text]))[0]
    assert kinds == f"{EMAIL} and {PHONE} and {ADDRESS}"


def test_what_was_struck_out_stays_so():
    once, _ = strike_out(pd.Series(list(PERSONAL)))
    twice, holds = strike_out(once)
    assert twice.tolist() == once.tolist()
    assert not holds.any()


@pytest.mark.parametrize(
    "part",
    ["a", "a@", "@", "1 ", "1", "0607 ", "+1", "(12)", "A ", "12 Mill ", "call ", '"', "1-",
     "\u200b1", "ul. A ", "1.234 ", "a at b dot "],
)  # fmt: skip
def test_an_endless_remark_is_read_to_its_end(part):
    # Hostile: a pattern that took characters back again would never come to the end of this.
    text = part * (300_000 // len(part)) + "! anna@example.org"
    struck, holds = strike_out(pd.Series([text]))
    assert holds.all()
    assert struck[0].endswith("! [struck out]")
