"""The data behind the screens: client of the open job, drafts, current task and its inputs. Independent of Textual."""
