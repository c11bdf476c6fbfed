"""The levers of one key, drawn and moved; the first panels of the lesson."""
