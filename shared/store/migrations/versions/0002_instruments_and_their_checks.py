"""Instruments and their checks: bag tests, meters with calibration pairs, hygrometer checks.

A pin reading now says which meter read it and how warm the wood was.
"""

import sqlalchemy as sa
from alembic import op

revision = '0002'
down_revision = '0001'
branch_labels = None
depends_on = None


def upgrade():
    held = sa.Table('pin_reading', sa.MetaData(), *_columns('pin_reading', *_pin_reading()))
    with op.batch_alter_table('pin_reading', recreate='always', copy_from=held) as batch:
        batch.add_column(sa.Column('wood_temperature_c', sa.Float(), nullable=True))
        batch.add_column(sa.Column('meter_id', sa.Integer(), nullable=True))
        batch.create_index(op.f('ix_pin_reading_subject_id_true_at_ms'), ['subject_id', 'true_at_ms'])
        batch.create_foreign_key(op.f('fk_pin_reading_meter_id'), 'subject', ['meter_id'], ['id'])
    _facts(
        'bag_test',
        sa.Column('temperature_c', sa.Float(), nullable=False),
        sa.Column('rh_pct', sa.Float(), nullable=False),
        sa.Column('rh_error_pct', sa.Float(), nullable=False),
        sa.Column('probe_id', sa.Integer(), nullable=True),
        sa.Column('last_moved', sa.Text(), nullable=False),
        _positive('bag_test', 'waited_s'),
        _positive('bag_test', 'air_volume_m3'),
        sa.ForeignKeyConstraint(['probe_id'], ['subject.id'], name=op.f('fk_bag_test_probe_id')),
    )
    _facts(
        'meter_fact',
        sa.Column('name', sa.Text(), nullable=False),
        sa.Column('species', sa.Text(), nullable=False),
        sa.Column('origin', sa.Text(), nullable=False),
        sa.Column('calibration_temperature_c', sa.Float(), nullable=False),
        sa.Column('note', sa.Text(), nullable=False),
    )
    _facts(
        'meter_pair',
        _positive('meter_pair', 'reading_pct'),
        sa.Column('wood_temperature_c', sa.Float(), nullable=True),
        _positive('meter_pair', 'wet_mass_kg'),
        _positive('meter_pair', 'dry_mass_kg'),
    )
    _facts(
        'hygrometer_check',
        sa.Column('temperature_c', sa.Float(), nullable=False),
        sa.Column('low_salt', sa.Text(), nullable=False),
        sa.Column('low_read_rh_pct', sa.Float(), nullable=True),
        sa.Column('high_salt', sa.Text(), nullable=False),
        sa.Column('high_read_rh_pct', sa.Float(), nullable=True),
        _positive('hygrometer_check', 'waited_s'),
    )


def _pin_reading():
    return _positive('pin_reading', 'mc_pct'), sa.Column('depth_m', sa.Float(), nullable=False)


def _positive(table, name):
    check = sa.CheckConstraint(f'{name} > 0', name=op.f(f'ck_{table}_{name}_positive'))
    return sa.Column(name, sa.Float(), check, nullable=False)


def _facts(name, *columns):
    op.create_table(name, *_columns(name, *columns))
    op.create_index(op.f(f'ix_{name}_subject_id_true_at_ms'), name, ['subject_id', 'true_at_ms'])


def _columns(name, *columns):
    return (
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
