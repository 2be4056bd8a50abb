"""That the consent of an authority is noted is told."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('notices', '0009_mail_at_once'),
    ]

    operations = [
        migrations.AlterField(
            model_name='news',
            name='kind',
            field=models.CharField(choices=[('overdue', 'Duties overdue'), ('shifted', 'Due dates moved'), ('handed_in', 'Result handed in'), ('sent_back', 'Result sent back'), ('sealed', 'Record sealed'), ('inspected', 'Inspection recorded'), ('outstanding', 'Result of a laboratory outstanding'), ('unsigned', 'Result handed in and not signed for long'), ('out', 'Taken out of service for a test'), ('out_taken_back', 'Start of the test day taken back'), ('left_out', 'Left out of service'), ('restored', 'Back in service'), ('adopted', 'Programme adopted'), ('waits', 'Rows of a programme wait for confirmation'), ('adoption_ended', 'Programme ends'), ('consented', 'Consent of an authority noted'), ('engaged', 'Contractor engaged'), ('engagement_changed', 'Engagement changed'), ('named', 'Authority named'), ('oversight_changed', 'Authority lets go'), ('file_withdrawn', 'File withdrawn'), ('going', 'Files are to be let go'), ('stays', 'Files are not let go after all'), ('gone', 'Files let go'), ('wrong', 'Deficiency opened'), ('wrong_classed', 'Deficiency in another class'), ('wrong_assigned', 'Deficiency given to somebody'), ('fix_proposed', 'A later record shows a fix'), ('wrong_closed', 'Deficiency closed'), ('taken_out', 'Taken out of service'), ('brought_back', 'Brought back into service'), ('clock', 'Notice clock ran out'), ('asked', 'Question asked'), ('answered', 'Question answered'), ('question_closed', 'Question closed'), ('ordered', 'Order made'), ('order_seen', 'Order seen by the owner'), ('order_met', 'Order met'), ('visited', 'Visit of an authority noted'), ('visit_withdrawn', 'Note of a visit withdrawn')], max_length=20),
        ),
    ]
