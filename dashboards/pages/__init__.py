"""The pages: for each a documented record of everything its template may use, and what fills it."""
