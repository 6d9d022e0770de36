"""Live stations: messages from an MQTT broker become feed files in the inbox, whole or not at all.

**Live stations** (`sources/broker/`): messages are kept in `.listen/*.open.jsonl`, forced to the disk, then
acknowledged, then renamed into the inbox. At least once, never half; the ledger's keys make twice harmless.
"""
