"""Order facts that the trade knows, as small procedures: the sound one proves clean, the broken one is caught."""
