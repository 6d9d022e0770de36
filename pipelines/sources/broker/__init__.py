"""Live stations: messages from an MQTT broker become feed files in the inbox, whole or not at all."""
