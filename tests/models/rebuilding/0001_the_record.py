from importlib import import_module

Migration = import_module("pmcore.migrations.0001_the_record").Migration
