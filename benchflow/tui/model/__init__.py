"""What the screens show: the open session, drafts, the current task and its inputs. No Textual in here."""
