"""Words of the trade in other languages (German, French, Polish, Spanish, Italian, Portuguese) and common
abbreviations: general vocabulary, without marks over letters, as `headings.plain` writes it.
"""

from __future__ import annotations

_MOMENT = (
    "fecha y hora|fecha|hora|data|ora|czas|godzina|data i godzina|data e ora|data hora|date heure|hour|when|dt|ts|"
    "moment|prelievo|probenahme|prelevement"
)
MORE_NAMES = {
    "window_start": f"poczatek okna|{_MOMENT}|inicio|inizio|poczatek|debut",
    "sampled_at": f"godzina proby|muestreo|{_MOMENT}",
    "checked_at": _MOMENT,
    "read_at": f"ablesung|lectura|lettura|leitura|odczyt|releve|{_MOMENT}",
    "fitted_at": f"eingebaut|cambio|monte|montado|montato|zamontowano|changed|{_MOMENT}",
    "started_at": "inicio|inizio|poczatek|debut|begun|first",
    "stopped_at": "stopp|stillstand ab|parada|paro|arret|fermata|arresto|postoj|zatrzymanie|down|down at|stopped since",
    "restarted_at": "reprise|retomada|rearranque|reanudacion|ripresa|riavvio|wznowienie|up|up at|running again",
    "packed_from": "first|inicio|inizio|poczatek|od|desde|da|first unit|beginn packen",
    "packed_to": "last|fine|koniec|do|hasta|a|last unit|ende packen",
    "received_on": "eingang am|recibido|ricevuto il|recebido|otrzymano|got on",
    "line": "ln|linea|linha|linia|strasse|lin",
    "station": "pruefmaschine|stanowisko|stazione|puesto|estacion|estacao|posto|gauge|inspektor|pruefstand",
    "furnace": "piec|horno|forno|fce|schmelzwanne",
    "mould": "molde|stampo|forma|nr formy|mld|numero de moule|numero molde|n molde|mould id|kavitaet|cav no",
    "number": "mould no|mold no|formnummer|form nr|numer|n|no moule|num",
    "inspected": "insp|inspeccionados|inspezionati|inspecionados|sprawdzone|skontrolowane|controlados|controllati|"
    "gesehen|pieces controlees|geprueft stueck|ctrl",
    "rejected": "rej|rechazados|rechazos|scarti|scartati|rejeitados|rejeicoes|odrzucone|odrzuty|rebuts|rejets|reject "
    "count|ausschuss stueck|qty rejected|rechazo",
    "window_s": "fenster s|intervalo s|durata s|duracion s|okres s|interval",
    "defect": "defecto|difetto|defeito|wada|defekt|usterka|def|fault no|fehler nr|code defaut|kod wady",
    "item": "articulo|articolo|artigo|produkt|wyrob|prodotto|producto|produto|sku|ref article|referencia",
    "section": "seccion|seccao|secao|sezione|sekcja|sect no|is section|sec no",
    "gob": "gota|goccia|kropla|paraison|gob pos",
    "part": "pieza|pezzo|peca|czesc|piece|equip|equipment|werkzeug",
    "counter": "contador|contatore|licznik|zaehlwerk|counter name",
    "total": "stan licznika|acumulado|cumulato|totale|cum total|accumulated|zaehlerwert",
    "gobs_cut": "cortes|tagli|ciecia|coupes|cut gobs|gotas cortadas",
    "hot_rejected": "rechazo caliente|scarto caldo|odrzut goracy|rebut chaud|he rejects",
    "weight_g": "wt|wgt|wt g|peso|peso g|masa|masa g|waga|waga g|masse|masse g|gew|glass weight|net g",
    "sample": "muestra|campione|amostra|proba|probka|smp|probe nr|sample nr",
    "point": "punto|ponto|punkt",
    "empty_g": "vacio|vuoto|vazio|pusta|tara|masse a vide|leermasse",
    "filled_g": "lleno|pieno|cheio|pelna|brutto|masse pleine|full g",
    "water_c": "temp agua|temperatura agua|temp acqua|temperatura acqua|temp wody|water temp|wasser c",
    "fill": "llenado|riempimento|enchimento|napelnienie|remplissage",
    "density_g_cm3": "densidad|densita|densidade|gestosc|dichte g cm3",
    "temper": "recocido|ricottura|recozimento|odprezanie|recuit|temper grade|spannungsgrad",
    "sample_units": "tamano muestra|n campioni|inspected units|umfang stichprobe",
    "pallet": "palett|palet|palete|bancale|pallet id|nr palety|no palette|paleta|id pallet|sscc nr|pal|plt",
    "units": "qty|pcs|sztuk|sztuki|ilosc|pezzi|piezas|unidades|unidade|cantidad|quantita|quantidade|quantite|"
    "stueckzahl|count units|nb|pieces",
    "state": "estado|stato|stan|etat palette|cond",
    "job": "pedido|ordine|ordem|zlecenie|commande|order no|work order|auftrag nr",
    "cause": "causa|motivo|przyczyna|why",
    "batch_kg": "batch t|mezcla|miscela|mistura|zestaw|gemenge t|composition",
    "moisture_pct": "humedad|umidita|umidade|wilgotnosc|humidite",
    "loss_pct": "perdida|perdita|perda|strata|perte|gluehverlust",
    "cullet_kg": "cullet t|casco|rottame|calcin|stluczka|scherben t",
    "complaint": "reclamacion|reclamo|reclamacao|reklamacja|claim|claim no|complaint id",
    "note": "nota|observacion|osservazioni|observacao|uwagi|bem|remarks|comment",
    "by": "operador|operatore|operator name|kontroler|controleur|inspektor name|laborant|tester",
    "delivery": "delivery no|delivery note|lieferschein|bon de livraison|albaran|bolla|dokument wz|guia",
    "customer": "consignee|kunde|client|cliente|klient|odbiorca",
    "vehicle": "truck|lkw|camion|camion no|ciezarowka|kennzeichen|plate",
    "dispatched_at": "left at|left|dispatched|verladen|versandt am|expedie le|salida|partenza|saida|wysylka|shipped",
}
# words that many lists have: alone they tell nothing of what a list is about
GENERIC = frozenset(
    (
        f"{_MOMENT}|time|timestamp|date|date time|datetime|datum|datum uhrzeit|zeit|zeitpunkt|uhr|uhrzeit|clock|heure|"
        "from|to|von|bis|de|a|da|od|do|start|end|ende|beginn|debut|fin|inicio|inizio|poczatek|koniec|fine|first|last|"
        "in|out|total|count|number|no|nr|n|num|numero|status|state|stato|estado|stan|zustand|etat|cause|causa|reason|"
        "grund|name|kind|up|down|by|note|remark|bemerkung|operator|operatore|operador|desde|hasta|where|code|value|"
        "interval|seconds|sekunden|plate|hour|when|begun|started|stop|received|pass|reading|full|part|teil"
    ).split("|")
)
