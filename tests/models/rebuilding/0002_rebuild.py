from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("pmcore", "0001_the_record")]
    operations = [migrations.AlterField("areadetails", "name", models.CharField(max_length=200))]
