"""A yard's own limits, overrides, lifted wood, joints, kinds of pieces; the journal of verdicts; messages out."""

import re

import sqlalchemy as sa
from alembic import op

revision = '0006'
down_revision = '0005'
branch_labels = None
depends_on = None

# Of the roles that were typed, the first that fits; whatever fits none is another piece.
KINDS = (
    ('twin', r'hal(f|ves)|left|right|twins?'),
    ('brace', r'brac(es?|ing)|bars?'),
    ('block', r'blocks?'),
    ('neck', r'necks?'),
    ('plate', r'tops?|backs?|plates?'),
)


def upgrade():
    # Added to the tables as they stand: nobody has said that work had begun, or which moisture is wanted.
    op.add_column('set_member', sa.Column('kind', sa.Text(), server_default='other', nullable=False))
    _guess_kinds(op.get_bind())
    op.add_column('use_plan', sa.Column('wanted_mc_low_pct', sa.Float(), nullable=True))
    op.add_column('use_plan', sa.Column('wanted_mc_high_pct', sa.Float(), nullable=True))
    op.add_column('use_plan', sa.Column('begun', sa.Boolean(), server_default=sa.false(), nullable=False))
    _facts('own_limit', sa.Column('value', sa.Float(), nullable=False), _text('reason'))
    _facts('override', _text('use'), _text('reason'))
    _facts(
        'lifted',
        _text('water'),
        _text('sapwood'),
        sa.Column('shake', sa.Boolean(), nullable=True),
        _text('smell'),
        sa.Column('washed', sa.Boolean(), nullable=False),
        sa.Column('metal_searched', sa.Boolean(), nullable=False),
        _text('note'),
    )
    _facts(
        'joint',
        sa.Column('a_board_id', sa.Integer(), nullable=False),
        sa.Column('b_board_id', sa.Integer(), nullable=False),
        _checked('joint', 'length_m', 'length_m > 0', 'positive'),
        _checked('joint', 'grain_a_deg', 'grain_a_deg BETWEEN 0 AND 90', '0_to_90'),
        _checked('joint', 'grain_b_deg', 'grain_b_deg BETWEEN 0 AND 90', '0_to_90'),
        _text('name'),
        sa.CheckConstraint('a_board_id <> b_board_id', name=op.f('ck_joint_two_boards')),
        sa.ForeignKeyConstraint(['a_board_id'], ['subject.id'], name=op.f('fk_joint_a_board_id')),
        sa.ForeignKeyConstraint(['b_board_id'], ['subject.id'], name=op.f('fk_joint_b_board_id')),
    )
    _verdict()
    _outbox()


def _guess_kinds(connection):
    for number, role in connection.execute(sa.text('SELECT id, role FROM set_member')).all():
        words = re.split(r'[^a-z]+', role.lower())
        for kind, pattern in KINDS:
            if any(re.fullmatch(pattern, word) for word in words):
                found = {'kind': kind, 'id': number}
                connection.execute(sa.text('UPDATE set_member SET kind = :kind WHERE id = :id'), found)
                break


def _verdict():
    op.create_table(
        'verdict',
        sa.Column('id', sa.Integer(), nullable=False),
        sa.Column('subject_id', sa.Integer(), nullable=False),
        sa.Column('at_ms', sa.BigInteger(), nullable=False),
        _text('word'),
        _text('number'),
        _text('reason'),
        _text('next_step'),
        sa.Column('probability', sa.Float(), nullable=True),
        sa.Column('known_entry', sa.BigInteger(), nullable=False),
        sa.Column('known_until_ms', sa.BigInteger(), nullable=True),
        _text('body'),
        sa.ForeignKeyConstraint(['subject_id'], ['subject.id'], name=op.f('fk_verdict_subject_id')),
        sa.PrimaryKeyConstraint('id', name=op.f('pk_verdict')),
    )
    op.create_index(op.f('ix_verdict_subject_id_at_ms'), 'verdict', ['subject_id', 'at_ms'])


def _outbox():
    op.create_table(
        'outbox',
        sa.Column('id', sa.Integer(), nullable=False),
        _text('topic'),
        _text('payload'),
        sa.Column('retain', sa.Boolean(), nullable=False),
        sa.Column('made_ms', sa.BigInteger(), nullable=False),
        sa.Column('sent_ms', sa.BigInteger(), nullable=True),
        sa.Column('tries', sa.Integer(), nullable=False),
        sa.Column('next_try_ms', sa.BigInteger(), nullable=False),
        _text('note'),
        sa.PrimaryKeyConstraint('id', name=op.f('pk_outbox')),
    )
    op.create_index(op.f('ix_outbox_sent_ms_topic'), 'outbox', ['sent_ms', 'topic'])


def _text(name):
    return sa.Column(name, sa.Text(), nullable=False)


def _checked(table, name, rule, named):
    check = sa.CheckConstraint(rule, name=op.f(f'ck_{table}_{name}_{named}'))
    return sa.Column(name, sa.Float(), check, nullable=False)


def _facts(name, *columns):
    op.create_table(
        name,
        sa.Column('id', sa.Integer(), nullable=False),
        sa.Column('subject_id', sa.Integer(), nullable=False),
        sa.Column('true_at_ms', sa.BigInteger(), nullable=False),
        sa.Column('entered_at_ms', sa.BigInteger(), nullable=False),
        sa.Column('entered_by', sa.Text(), nullable=False),
        sa.Column('supersedes', sa.Integer(), nullable=True),
        sa.Column('withdrawn', sa.Boolean(), nullable=False),
        *columns,
        sa.ForeignKeyConstraint(['subject_id'], ['subject.id'], name=op.f(f'fk_{name}_subject_id')),
        sa.ForeignKeyConstraint(['supersedes'], [f'{name}.id'], name=op.f(f'fk_{name}_supersedes')),
        sa.PrimaryKeyConstraint('id', name=op.f(f'pk_{name}')),
        sa.UniqueConstraint('supersedes', name=op.f(f'uq_{name}_supersedes')),
    )
    op.create_index(op.f(f'ix_{name}_subject_id_true_at_ms'), name, ['subject_id', 'true_at_ms'])
