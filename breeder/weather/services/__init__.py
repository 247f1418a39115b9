"""Services that give forecasts: what to ask of each and how to read its answers; nothing here touches the network."""
