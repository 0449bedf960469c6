"""The audit: could this log have been written so by the rules of this version?"""
