"""Page records: what each page may show, every field documented, and the function that fills it."""
