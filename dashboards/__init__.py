"""The pages: templates, style sheets and scripts. Pure presentation."""
