"""What the columns of feeds are called in exports: common words of the trade, without a source. The first fits best;
those of `vocabulary.py` come behind.
"""

from __future__ import annotations

import re
import unicodedata

from pipelines.intake.foreign.vocabulary import MORE_NAMES

_WORDS = {
    "window_start": "window start|window|start|clock|time|timestamp|date time|datetime|from|datum "
    "uhrzeit|zeitpunkt|zeit|beginn|uhrzeit|uhr|heure|date|datum",
    "sampled_at": "sampled at|sampled|time|timestamp|date time|clock|zeitpunkt|zeit|uhrzeit|uhr|heure|date|datum",
    "checked_at": "checked at|checked|time|timestamp|clock|zeitpunkt|zeit|uhrzeit|uhr|heure|date|datum",
    "read_at": "read at|read|time|timestamp|clock|zeitpunkt|zeit|uhrzeit|uhr|heure|date|datum",
    "packed_from": "packed from|from|start|von|beginn|debut",
    "packed_to": "packed to|to|end|bis|ende|fin",
    "fitted_at": "fitted at|fitted|time|clock|zeitpunkt|zeit|uhrzeit|date|datum",
    "started_at": "started at|started|start|time|clock|beginn|zeitpunkt|zeit|date|datum",
    "stopped_at": "stopped at|stopped|stop|from|von|halt|time|zeit|date|datum",
    "restarted_at": "restarted at|restarted|restart|to|bis|wieder an",
    "received_on": "received on|received|date|eingang|eingegangen am|datum|recu le",
    "made_from": "made from|produced from|production from|hergestellt von",
    "made_to": "made to|produced to|production to|hergestellt bis",
    "line": "line|linie|machine|maschine|ligne",
    "station": "station|inspector|gate|pruefstation|poste",
    "furnace": "furnace|wanne|ofen|four",
    "mould": "mould|mould no|mould number|mold|mold no|mold number|form|form nr|formnummer|formnr|moule|no moule",
    "number": "number|no|nr|nummer|numero",
    "inspected": "inspected|seen|total inspected|in|checked|geprueft|kontrolliert|durchlauf|controles|total",
    "refed": "refed|re fed|re inspected|reinspected|recirculated|wieder aufgegeben|rueckfuehrung|ruecklauf|repasses",
    "rejected": "rejected|rejects|reject|out|aus|total "
    "rejected|count|ausschuss|ausgeschieden|aussortiert|anzahl|rejetes|rebut",
    "window_s": "window s|interval s|seconds|sekunden|intervall s",
    "defect": "defect|fault|defect code|fault code|code|reason|fehler|fehlercode|fehlerart|defaut",
    "item": "item|article|product|artikel|erzeugnis",
    "section": "section|sec|station nr|sektion|sect",
    "gob": "gob|gob position|cavity|tropfen|goutte",
    "part": "part|kind|teil",
    "counter": "counter|zaehler|compteur",
    "total": "total|reading|zaehlerstand|stand|cumul",
    "gobs_cut": "gobs cut|gobs|cuts|schnitte|tropfen",
    "hot_rejected": "hot rejected|hot end rejects|hot rejects|heissausschuss",
    "weight_g": "weight g|weight|gewicht g|gewicht|mass g|mass|poids|poids g",
    "sample": "sample|sample no|probe|stueck|echantillon",
    "point": "point|where|messstelle",
    "empty_g": "empty g|empty|leer g|leergewicht|vide",
    "filled_g": "filled g|filled|full|gefuellt g|vollgewicht|plein",
    "water_c": "water c|water temperature|wassertemperatur|temperature eau",
    "fill": "fill|fill point|fuellhoehe",
    "density_g_cm3": "density g cm3|density|dichte|densite",
    "temper": "temper|temper number|temper no|spannung|kuehlgrad",
    "sample_units": "sample units|sample size|looked at|stichprobe|umfang",
    "found": "found|faulty|gefunden|fehlerhaft",
    "passes": "passes|pass|durchgaenge",
    "caught": "caught|erkannt|detected",
    "pallet": "pallet|pallet no|pallet number|sscc|palette|palettennummer",
    "units": "units|pieces|quantity|containers|stueck|menge|pieces par palette",
    "state": "state|status|zustand|etat",
    "job": "job|order|auftrag|ordre",
    "cause": "cause|reason|ursache|grund",
    "batch_kg": "batch kg|batch|gemenge kg|gemenge",
    "moisture_pct": "moisture pct|moisture|feuchte",
    "loss_pct": "loss pct|loss|schmelzverlust",
    "cullet_kg": "cullet kg|cullet|scherben kg|scherben",
    "level_change_mm": "level change mm|level change|glasstand",
    "complaint": "complaint|complaint no|reklamation|reclamation",
    "note": "note|remark|bemerkung|remarque",
    "by": "by|operator|pruefer|operateur",
}


def plain(heading: str) -> str:
    """A heading in small letters and digits, one blank between words; an umlaut as two letters."""
    text = heading.lower()
    for umlaut, letters in (("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("ß", "ss"), ("ł", "l")):
        text = text.replace(umlaut, letters)
    bare = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return " ".join(re.findall(r"[a-z0-9]+", bare))


OTHER_NAMES: dict[str, tuple[str, ...]] = {
    column: tuple("|".join(filter(None, (_WORDS.get(column), MORE_NAMES.get(column)))).split("|"))
    for column in {**_WORDS, **MORE_NAMES}
}
